"""The whole evening: a set file in; its order, times, warnings and every segue out."""
