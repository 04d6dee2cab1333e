"""From the bytes of a photograph to a square-on picture of the face: load, pick the lamp's channel, find the outline, rectify."""
