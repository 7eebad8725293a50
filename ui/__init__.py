"""The web page: what a person sees and presses. It holds no colour or recipe arithmetic; ``matcher`` does that."""
