"""Jobs that are changed or given up when parts lie ready for them, and what comes back for that."""
