"""Designing, sealing and opening a blind listening session: how many trials, in which order, on which sheets."""
