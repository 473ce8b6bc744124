"""One model behind every recommendation: what a choice would give, how sure that is, and what to say on the handout."""
