"""What outlasts one run of the page: the open studio, drafts, what is kept, where the pages lie."""
