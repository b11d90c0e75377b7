"""The wiring of Lotward: settings, addresses, checks, HTTP helpers. Nothing of the job."""
