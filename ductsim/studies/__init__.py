"""Questions asked of whole machines: what to do, what is leaking, how fast to drive."""
