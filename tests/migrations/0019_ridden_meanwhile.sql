-- An officer has read one of them.

update late_pull set acknowledged = 4 where seq = 3;
