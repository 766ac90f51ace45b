"""The application above the core: operator interface, link, store; runs above any board."""
