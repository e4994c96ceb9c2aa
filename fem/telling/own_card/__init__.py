"""The page of a card that was made from own coupons."""
