"""What joins bodies: faces that push, stick or slip, and bolts."""
