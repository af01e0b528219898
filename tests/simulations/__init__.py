"""Simulated sessions with known truth: how often intervals cover it."""
