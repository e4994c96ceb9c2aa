"""Material cards: elastic constants and strengths of one polymer or metal, state by state."""
