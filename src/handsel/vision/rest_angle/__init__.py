"""The rest angle from two printed cards on a hand, from one photo or several, and from two lines drawn by hand.

The rest angle is the turn about the hinge axis that takes the palm's reference line to the cuff's, positive
with the elbow end raised. With the fingers to the right of the picture a raised cuff turns clockwise, so the
rest angle is minus the turn about z; with the fingers to the left it is the turn itself.

The order of work: `finding` (where are the cards) and `edges` (where do their edges run) beside this folder, then
`solving` (which hand explains all edges, as a `posterior`), `reading` (what that says, or why it says nothing),
`fusing` (several photos of a hand).
"""
