-- Which pack was put into which car, and since when; none once it has run or was taken out.
CREATE TABLE car_packs (
    id INTEGER PRIMARY KEY,
    car_id INTEGER NOT NULL REFERENCES cars (id),
    pack_id INTEGER REFERENCES packs (id),
    since TEXT NOT NULL
) STRICT;

CREATE INDEX car_packs_by_car ON car_packs (car_id, id DESC);
CREATE INDEX car_packs_by_pack ON car_packs (pack_id, id DESC);
