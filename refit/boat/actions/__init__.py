"""Every change of state under the boat, one verb a function, each in one transaction."""
