"""What every page shares: colours, style sheet, cautions, and making strangers' text safe to show."""
