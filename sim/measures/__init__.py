"""Records to numbers; pure functions, none of which needs the simulator."""
