"""Heights over a face, and the figures an optician takes from them."""
