"""Every change of state in the stores, one verb a function, each in one transaction."""
