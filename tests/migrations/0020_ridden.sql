insert into ridden (rig, shift, member) values
    ('engine-2', 1764140400000, 'm-101'),
    ('engine-2', 1764140400000, 'm-102');
update rotation set apart = '["chief-1"]';
