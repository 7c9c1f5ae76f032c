"""Jobs sent to the storeroom: their lots set aside and what they ask for kept as it was then."""
