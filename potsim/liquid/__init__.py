"""What the liquid is: strength, equilibrium, heat, traces and clouding."""
