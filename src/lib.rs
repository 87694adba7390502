//! Axiswright turns the exports of keratometers and biometers into sealed plan sheets for astigmatism surgery.
