"""Who is told, and how? Metrics, overview, notifiers, audit, schedules. The only folder that knows HTTP."""
