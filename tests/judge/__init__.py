"""How the judge of marks is fitted: examples of candidates with truth, the fit, and figures on faces held back."""
