"""What is weighed, kept, tasted and analysed beside the photos."""
