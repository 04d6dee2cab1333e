"""From a photograph of interference bands to a verdict on a flat mirror.

Start reading in ``straightband.workflows``: one file per thing a person does.
This module imports nothing, so that the command line starts at once.
"""

__version__ = "0.1.0"
