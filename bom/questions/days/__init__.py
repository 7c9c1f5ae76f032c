"""Questions about build days: what comes of them, and which others would do better."""
