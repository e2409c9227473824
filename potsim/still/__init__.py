"""What the still does: the vessel, its tabulated curves and the course of a run."""
