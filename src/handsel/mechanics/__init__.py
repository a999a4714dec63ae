"""How a hand moves: lengths, forces, equilibrium, and what follows from them.

Units inside: mm, N, N·mm, rad. Degrees appear only in public results.

Signs, defined here once:
    theta   wrist; positive when the free end of the cuff rises toward the back of the hand
    psi     whippletree tilt; positive when its thumb-side end sits further forward
    phi     digit hinges; positive in flexion, 0 straight
    excess  a cord too long is positive; slides are positive when pulled in
    moment arm = d length / d angle: a flexor cord has a negative arm on its digit (flexion
    shortens its path), an elastic a positive one, and a cord has a negative arm on the wrist
    (raising the cuff gives cord back).

             z (back of the hand)
    bar o    |          guide
     \\__o___|___________o_____________        a raised cuff (theta > 0)
      cuff   o wrist      palm      knuckle o====o====  -> x
"""
