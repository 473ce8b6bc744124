"""The pages a county publishes: plain data in, one self-contained HTML document out."""
