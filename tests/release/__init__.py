"""What is handed out: wheel, source archive, list of what is in it, licences; and whether the wheel runs by itself."""
