"""The ledger of results, and results as CSV files."""
