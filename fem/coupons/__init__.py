"""From one's own coupons to a card: what to print and measure, curves read and fitted, values with their scatter."""
