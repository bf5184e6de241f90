"""A person's endurance: efforts in, curve, strength and trend out."""
