"""What was it before? Hot readings, port-days, events. The only folder that knows SQLite."""
