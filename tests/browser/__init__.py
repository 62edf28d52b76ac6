"""The page in a real browser: Chromium, driven by Playwright."""
