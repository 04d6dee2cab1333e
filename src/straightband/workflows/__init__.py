"""One file per thing a person does. Start reading here."""
