"""The lists of the storeroom, as finished rows: movements, quarantine, put-away, disposal, what came from the bench."""
