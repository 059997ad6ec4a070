update logbook_head set changes = 7;
