"""The pages that the foot of every page leads to, one file each: what is looked up or set up now and then."""
