"""What happens between two plates with abrasive between them: how they move, where they press, what they wear."""
