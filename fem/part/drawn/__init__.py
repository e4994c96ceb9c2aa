"""What the CAD kernel's solids are: their triangles, their faces, which solid of a file is meant, where it is cut."""
