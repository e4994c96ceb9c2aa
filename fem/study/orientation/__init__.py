"""`beadwork orient`: the same part, the same mesh, the same loads, built in many directions."""
