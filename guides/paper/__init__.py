"""What every PDF is made of."""
