"""Joins the features: plans the work, runs it, resumes it; the only place that knows them all."""
