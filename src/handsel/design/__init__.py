"""What a hand is: bodies, hinges, cords, elastics, slides, pads and parts, as data.

Frame: every point is given in the palm frame with the hand laid out straight (all hinges and
slides at zero), for a right hand at scale 1, in millimetres.

    x  from the wrist hinge toward the fingertips
    y  toward the thumb side (a left hand is the mirror image in y)
    z  toward the back of the hand; the palm's base plane is horizontal

Signs: a digit hinge is positive in flexion; the wrist hinge is positive when the free end of the
cuff rises toward the back of the hand (extension); a slide is positive when pulled in, away from
the fingers; the whippletree's tilt is positive when its thumb-side end sits further forward.
"""
