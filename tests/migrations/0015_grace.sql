update rule_draft set grace_hours = 24;
