"""What every page shares: colours, style sheet, wording, cautions, and making strangers' text safe to show."""
