-- Wrong guesses of pairing codes are counted in memory.
DROP TABLE wrong_guesses;
