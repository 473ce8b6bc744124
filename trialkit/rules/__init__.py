"""The whole trial folder as read and checked: rules within and between tables."""
