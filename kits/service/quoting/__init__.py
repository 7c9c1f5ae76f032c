"""Quotes in versions and the customer's go-ahead."""
