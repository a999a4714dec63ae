"""What a photo says, and how well it is known. Each folder here looks at one thing:

    rest_angle   two printed cards, or two drawn lines, on a hand seen from the side
    mat          the sheet under a kit: where it lies, how its picture is laid flat
    parts        what lies on the mat, and how large the mat was printed
    cuff         a formed cuff from the front, against its own mirror image
    bend         pale lines along a bend

What several of them need stands beside: `camera` (lens), `cards`, `finding` (where are the markers), `edges` (where
exactly do their edges run), `squares`, `colour`. Folders take from each other only downwards: cuff and parts from mat.

Frames, each right-handed:

    picture   px, x right, y down, the first pixel's centre at (0, 0); the picture as it is shown
    camera    mm, x right, y down, z away from the camera
    card      mm, x right, y up (toward the back of the hand), z out of the card; its centre is the origin
    hand      as a card that lies flat on the palm's side face: x along the palm's base plane, y toward
              the back of the hand, z along the hinge axis toward the viewer
"""
