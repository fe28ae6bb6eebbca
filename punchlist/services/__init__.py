"""Every change of the punch list, one function each: one transaction, permission asked, audited, safe to send twice."""
