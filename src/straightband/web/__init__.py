"""The bench in the browser: pages over the workflows, no arithmetic of their own."""
