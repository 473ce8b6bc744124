"""What a trial is about: treatments, factors, measures and the one failure that every floor may raise. Pure."""
