"""Joins the features: plans the work, runs it here, resumes it. The only place that knows them all."""
