"""The desk and `watch`: a session on a page of this machine."""
