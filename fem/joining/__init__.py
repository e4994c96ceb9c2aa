"""What joins bodies: faces that lie opposite each other."""
