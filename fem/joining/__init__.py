"""What holds parts together: bolts by the formulae of their standards, without a mesh."""
