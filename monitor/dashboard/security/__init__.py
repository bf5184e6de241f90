"""Who may read and change what: sign-in, pairing, limits, the middleware before every request."""
