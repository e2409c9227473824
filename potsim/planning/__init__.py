"""What the distiller decides: charge, bill, cuts, jars, keep, proofing and trials."""
