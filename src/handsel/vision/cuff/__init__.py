"""A formed cuff from the front: its outline, its mirror axis and how far it is from its mirror image (`measuring`)."""
