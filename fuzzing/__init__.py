"""Bad input, by chance and guided by coverage: every loader and parser must answer with a result or a sentence. START READING AT run.py."""
