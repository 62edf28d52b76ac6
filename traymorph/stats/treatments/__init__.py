"""Differences between treatments: intervals, families of tests, margins, typical trays."""
