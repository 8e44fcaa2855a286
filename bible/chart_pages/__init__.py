"""What the chart's pages show: sheets, who uses which tint, look-alikes, the facts of one tint."""
