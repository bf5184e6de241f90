"""Numbers of one hold, each with its uncertainty or the reason why it is absent."""
