"""What a recipe would give, on the page: what moves it by hand, and what is seen of it."""
