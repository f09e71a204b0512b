"""/v1/maintenance-plans: what is to be done again and again, and when it is due next."""
