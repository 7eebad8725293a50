"""Makes what the demo studio ships: ``python -m tests.demo_making``."""
