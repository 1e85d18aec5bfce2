"""Frozen values and plain theory that every room shares."""
