"""The usual cautions, shown where the work that needs them is done: common practice, no source; local codes and trained people come first."""

DEFER = "A reminder from common practice. It does not replace local codes, data sheets, training or licensed people: where those say otherwise, they are right."
GRINDING = (
    "Grind wet, wipe up wet, never sweep dry sludge: dust of silica or ceria is not to be breathed.",
    "Bevel sharp edges first. Keep sleeves, gloves and long hair away from anything that turns, and the switch within reach.",
    "Plates that run dry lock together. Do not pry: soak them, warm them evenly, wait.",
)
LAMPS = (
    "Keep mains lamps away from foil, wet hands and conductive linings; prefer extra-low voltage at a wet bench.",
    "A bare low-pressure mercury lamp burns eyes and skin with ultraviolet: use one that is enclosed, and air the room if it breaks.",
)
GLASS = ("Fresh edges cut. A large blank is heavier than it looks: lift with both hands or with help.",)
HAND_OVER = ("The paper speaks of the shape of the polished face, not of coating, glue or cell.",)
