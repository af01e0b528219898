"""Runs a function in a process of its own, within limits of time and memory; knows neither store nor plug-ins."""
