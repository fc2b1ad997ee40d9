-- Carry lost to strike and misses by cause, per player, club and week. Only play and drill shots count.
WITH counted AS (
    SELECT
        *,
        miss IS NOT NULL AND miss <> 'none' AS missed,
        carry_lost_to_strike_m IS NOT NULL AS judged,
        CAST(local_date AS INTEGER) AS day_number,
        CAST(week AS INTEGER) AS week_number,
        dense_rank() OVER (PARTITION BY site_id ORDER BY session) AS session_number
    FROM shot_verdicts
    WHERE counted
),
summed AS (
    SELECT
        site_id,
        player_id,
        club_id,
        week,
        week_number,
        count(*) AS shots,
        count(*) FILTER (WHERE judged) AS shots_judged,
        count(*) FILTER (WHERE judged AND strike_source = 'measured') AS strikes_measured,
        count(*) FILTER (WHERE judged AND strike_source = 'linked') AS strikes_linked,
        count(*) FILTER (WHERE judged AND strike_source NOT IN ('measured', 'linked')) AS strikes_inferred,
        count(*) FILTER (WHERE missed) AS misses,
        count(*) FILTER (WHERE cause = 'strike') AS misses_strike,
        count(*) FILTER (WHERE cause = 'delivery') AS misses_delivery,
        count(*) FILTER (WHERE cause = 'either') AS misses_either,
        count(*) FILTER (WHERE cause = 'both needed') AS misses_both_needed,
        count(*) FILTER (WHERE cause = 'neither') AS misses_neither,
        count(*) FILTER (WHERE cause = 'cannot tell') AS misses_unclear,
        count(*) FILTER (WHERE misread) AS misread_curves,
        sum(CASE WHEN abs(curve_reading_deg) >= $acted_on_deg THEN misread_probability ELSE 0.0 END) AS misread_curves_expected,
        sum(CASE WHEN strike_zone = 'centre' THEN carry_lost_to_strike_m ELSE 0.0 END) AS lost_centre_m,
        sum(CASE WHEN strike_zone = 'toe' THEN carry_lost_to_strike_m ELSE 0.0 END) AS lost_toe_m,
        sum(CASE WHEN strike_zone = 'heel' THEN carry_lost_to_strike_m ELSE 0.0 END) AS lost_heel_m,
        sum(CASE WHEN strike_zone = 'high' THEN carry_lost_to_strike_m ELSE 0.0 END) AS lost_high_m,
        sum(CASE WHEN strike_zone = 'low' THEN carry_lost_to_strike_m ELSE 0.0 END) AS lost_low_m,
        avg(tighter_strike_gain_m) AS tighter_strike_gain_mean_m,
        avg(faster_club_gain_m) AS faster_club_gain_mean_m,
        avg(CASE WHEN judged THEN reference_carry_m END) AS reference_carry_mean_m,
        avg(CASE WHEN judged THEN reference_carry_std_m END) AS reference_carry_std_mean_m,
        count(DISTINCT session) AS sessions,
        max(model_as_of) AS model_as_of,
        max(method_version) AS method_version
    FROM counted
    GROUP BY site_id, player_id, club_id, week, week_number
),
weeks AS (
    SELECT DISTINCT site_id, player_id, club_id, week, week_number FROM counted
),
-- The player's sessions up to the week, newest first.
history AS (
    SELECT
        weeks.site_id,
        weeks.player_id,
        weeks.club_id,
        weeks.week,
        counted.week = weeks.week AS is_current,
        counted.session_number,
        counted.day_number,
        counted.carry_lost_to_strike_m,
        counted.carry_lost_to_strike_sd_m,
        counted.carry_lost_to_strike_std_m,
        row_number() OVER (
            PARTITION BY weeks.site_id, weeks.player_id, weeks.club_id, weeks.week ORDER BY counted.struck_at DESC, counted.shot_id
        ) AS newest
    FROM weeks
    JOIN counted
        ON counted.site_id = weeks.site_id
        AND counted.player_id = weeks.player_id
        AND counted.club_id = weeks.club_id
        AND counted.day_number >= weeks.week_number - $history_days
        AND counted.day_number < weeks.week_number + 7
    WHERE counted.judged
),
lists AS (
    SELECT
        site_id,
        player_id,
        club_id,
        week,
        array_agg(named_struct(
            'value', carry_lost_to_strike_m,
            'deviation', carry_lost_to_strike_sd_m,
            'session', session_number,
            'day', day_number,
            'current', is_current
        )) AS losses,
        array_agg(named_struct(
            'value', carry_lost_to_strike_std_m,
            'deviation', carry_lost_to_strike_sd_m,
            'session', session_number,
            'day', day_number,
            'current', is_current
        )) AS losses_std
    FROM history
    WHERE newest <= $most_shots
    GROUP BY site_id, player_id, club_id, week
),
expected AS (
    SELECT
        site_id,
        player_id,
        club_id,
        week,
        mean_by_sessions(losses, $shared_variance) AS loss,
        mean_by_sessions(losses_std, $shared_variance) AS loss_std,
        trend(losses_std, $shared_variance) AS way
    FROM lists
)
SELECT
    summed.site_id,
    summed.player_id,
    summed.club_id,
    summed.week,
    shots,
    shots_judged,
    strikes_measured,
    strikes_linked,
    strikes_inferred,
    misses,
    misses_strike,
    misses_delivery,
    misses_either,
    misses_both_needed,
    misses_neither,
    misses_unclear,
    misread_curves,
    misread_curves_expected,
    loss['mean'] AS carry_lost_mean_m,
    loss['mean_low'] AS carry_lost_mean_low_m,
    loss['mean_high'] AS carry_lost_mean_high_m,
    loss['plain_mean'] AS carry_lost_plain_mean_m,
    loss['level'] AS carry_lost_level_m,
    loss['level_low'] AS carry_lost_level_low_m,
    loss['level_high'] AS carry_lost_level_high_m,
    loss['history_weight'] AS history_weight,
    loss['total'] AS carry_lost_total_m,
    loss['total_low'] AS carry_lost_total_low_m,
    loss['total_high'] AS carry_lost_total_high_m,
    loss_std['mean'] AS carry_lost_std_mean_m,
    loss_std['mean_low'] AS carry_lost_std_mean_low_m,
    loss_std['mean_high'] AS carry_lost_std_mean_high_m,
    way['per_week'] AS carry_lost_std_per_week_m,
    way['per_week_low'] AS carry_lost_std_per_week_low_m,
    way['per_week_high'] AS carry_lost_std_per_week_high_m,
    CASE WHEN shots_judged > 0 THEN lost_centre_m END AS lost_centre_m,
    CASE WHEN shots_judged > 0 THEN lost_toe_m END AS lost_toe_m,
    CASE WHEN shots_judged > 0 THEN lost_heel_m END AS lost_heel_m,
    CASE WHEN shots_judged > 0 THEN lost_high_m END AS lost_high_m,
    CASE WHEN shots_judged > 0 THEN lost_low_m END AS lost_low_m,
    tighter_strike_gain_mean_m,
    faster_club_gain_mean_m,
    reference_carry_mean_m,
    reference_carry_std_mean_m,
    way['direction'] AS trend,
    sessions,
    model_as_of,
    method_version,
    CAST(0 AS BIGINT) AS revision
FROM summed
LEFT JOIN expected
    ON expected.site_id = summed.site_id
    AND expected.player_id = summed.player_id
    AND expected.club_id = summed.club_id
    AND expected.week = summed.week
