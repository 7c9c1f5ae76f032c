"""What the planner decides ahead: build days proposed."""
