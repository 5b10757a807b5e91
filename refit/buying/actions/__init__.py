"""Every change of state in buying, one verb a function, each in one transaction."""
