"""What to do first: one remedy and one window a valve under budgets, outage days, crew hours and lead times."""
