"""The storeroom in numbers, month by month, each with the rows that it counts."""
