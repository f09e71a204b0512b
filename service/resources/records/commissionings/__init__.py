"""/v1/commissionings: runs of a procedure, step by step, with evidence and signatures."""
