"""Every doubt a reading can carry, as a short name and as a sentence."""

SENTENCES = {
    "sign-unknown": "hill or hole is not known; say where the gap is thicker",
    "thicker-side-does-not-fit-the-bands": "the thicker side that was given lies along the bands or does not fit them, so hill or hole stays unknown",
    "half-turn-unknown": "without a mark the map may be turned by half a turn",
    "turn-unknown": "without a mark the map is tied to the photograph's upright only",
    "reference-not-told": "the heights are those of the pair; give the reference flat's map with --minus to have the piece alone",
    "camera-distance-not-told": "the camera is taken to stand seven lengths of the face away or more; if it stood nearer, give its distance with --camera",
    "several-lamps-on": "light of the other lamps leaks into the colour that was read; read the figure with one lamp, the sign with all",
    "frames-dropped": "some frames could not be read or differed from the rest, and were left out",
    "still-warm": "the glass was still warm from hands: wait as long as is said, and take the photograph again",
    "still-settling": "the plates were still sinking onto each other: wait until the bands stand still",
    "reference-way-round-unknown": "which way round the reference lay is not known without the pencil mark (its own too) and the number of reversals; what that would change is in the uncertainty",
    "reference-recheck-due": "the reference flat is due to be measured again",
    "reference-handled-since": "something was done to the reference flat since it was measured; measure it again",
    "reference-undated": "the reference flat's map does not say when it was measured",
    "reference-part-undetermined": "part of the reference flat's figure was not determined when it was measured; its uncertainty holds that",
    "few-bands": "fewer than three bands show; 4 to 12 read best",
    "part-of-the-face-not-seen": "part of the face is overexposed or hidden and was filled in from its surroundings",
    "much-dust-or-glare": "much dust or glare was set aside",
    "small-photograph": "the photograph has less than one megapixel",
    "outline-faint": "the outline shows faintly along much of the rim; look at it, and give it with --outline if it lies wrong",
    "outline-between-two-edges": "two edges a few pixels apart may be the outline; its uncertainty holds half their distance, and --outline settles it",
    "bevel-wider-than-the-margin": "bands end farther inside the outline than the margin, and the clear aperture ends there unless a margin was given; it is a wide bevel, or the rim of the back",
    "another-face-in-the-photograph": "another face of this shape and size, with bands, lies beside the one that was read; look at the outline, and give it with --outline if it lies wrong",
    "outline-told": "the outline was told, not found",
    "lamp-channel-clipped": "the colour that the lamp fills is overexposed, so another was read",
    "block-out-of-parallel-with-platen": "the block's face does not lie parallel with the platen",
    "block-hardly-shows": "the bands do not jump at the block's edges and two faint lines were taken for them: see that there is a block and that it lies there",
    "photographs-differ": "the photographs differ by more than their own uncertainty",
}


def explain(flag: str) -> str:
    """The sentence for a flag; its name with spaces where there is none."""
    return SENTENCES.get(flag, flag.replace("-", " "))
