"""Pupae, entries, forecasts and reviews in words, the same in every face."""
