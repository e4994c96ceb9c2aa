"""Many variants of one study: spelled out, answered on one mesh, kept, and put side by side."""
