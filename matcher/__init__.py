"""Match a bronze patina from photographs."""
