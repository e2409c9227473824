"""How sure a prediction is: what is uncertain, how it is drawn, and what thousands of runs come to."""
