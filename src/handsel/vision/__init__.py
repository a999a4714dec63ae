"""What a photo says: two printed cards found, their edges measured, the rest angle and how well it is known.

Frames, each right-handed:

    picture   px, x right, y down, the first pixel's centre at (0, 0); the picture as it is shown
    camera    mm, x right, y down, z away from the camera
    card      mm, x right, y up (toward the back of the hand), z out of the card; its centre is the origin
    hand      as a card that lies flat on the palm's side face: x along the palm's base plane, y toward
              the back of the hand, z along the hinge axis toward the viewer

The rest angle is the turn about the hinge axis that takes the palm's reference line to the cuff's, positive
with the elbow end raised. With the fingers to the right of the picture a raised cuff turns clockwise, so the
rest angle is minus the turn about z; with the fingers to the left it is the turn itself.

The order of work: `finding` (where are the cards), `edges` (where exactly do their edges run), `solving` (which
hand explains all edges), `angle` (what that says, or why it says nothing), `fusing` (several photos of a hand).
"""
