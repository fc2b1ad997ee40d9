-- Misses of counted shots that a strike from the face centre would have mended and the intended delivery would not.
SELECT
    shot_id,
    site_id,
    player_id,
    club_id,
    struck_at,
    local_date,
    week,
    miss,
    cause_probability,
    strike_zone,
    strike_toe_mm,
    strike_up_mm,
    strike_toe_sd_mm,
    strike_up_sd_mm,
    strike_source,
    lateral_m,
    carry_m,
    centred_lateral_m,
    centred_carry_m,
    carry_lost_to_strike_m,
    carry_lost_to_strike_sd_m,
    face_to_path_deg,
    curve_reading_deg,
    misread,
    concat(
        'met ',
        CASE
            WHEN round(abs(strike_toe_mm)) = 0 THEN 'level with the middle'
            ELSE concat(CAST(round(abs(strike_toe_mm)) AS BIGINT), ' mm toward the ', CASE WHEN strike_toe_mm > 0 THEN 'toe' ELSE 'heel' END)
        END,
        CASE
            WHEN round(abs(strike_up_mm)) = 0 THEN ''
            ELSE concat(', ', CAST(round(abs(strike_up_mm)) AS BIGINT), ' mm ', CASE WHEN strike_up_mm > 0 THEN 'high' ELSE 'low' END)
        END,
        ' (', strike_source, '); from the middle ', CAST(round(centred_carry_m) AS BIGINT), ' m, ',
        CASE
            WHEN round(abs(centred_lateral_m)) = 0 THEN 'on the line'
            ELSE concat(CAST(round(abs(centred_lateral_m)) AS BIGINT), ' m ', CASE WHEN centred_lateral_m > 0 THEN 'right' ELSE 'left' END)
        END,
        '; as struck ', CAST(round(carry_m) AS BIGINT), ' m, ',
        CASE
            WHEN round(abs(lateral_m)) = 0 THEN 'on the line'
            ELSE concat(CAST(round(abs(lateral_m)) AS BIGINT), ' m ', CASE WHEN lateral_m > 0 THEN 'right' ELSE 'left' END)
        END
    ) AS evidence,
    revision
FROM shot_verdicts
WHERE cause = 'strike' AND counted
