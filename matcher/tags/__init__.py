"""Tags on sample plates: what a tag says and how it is found, which plate carried it when, where it was seen."""
